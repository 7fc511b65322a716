"""What each command of ``reedbed`` does; ``api/__main__.py`` reads the words and calls these."""
