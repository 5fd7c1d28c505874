"""Record to people: the command line, sheets and lists."""
