"""The plan shown: as text, as a page, in pictures."""
