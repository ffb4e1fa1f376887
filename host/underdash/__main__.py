from underdash.cli.app import main

main()
