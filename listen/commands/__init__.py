"""One module for each command; heavy packages are imported only once a command runs."""
