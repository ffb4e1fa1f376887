"""What the board runs at power-on: the monitor, until a host or a held button asks for quiet."""

import board

from monitor import supervisor

supervisor.run(board)
