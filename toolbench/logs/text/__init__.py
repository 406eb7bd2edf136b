"""Where names, units and rows stand in a text file, in which encoding, and how its cells are parted."""
