"""What each command of ``reedbed`` does; ``api/command_line.py`` reads the words and calls these."""
