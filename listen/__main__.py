"""`python -m listen` is the same as `toothbeat`."""

from listen.cli import main

main()
