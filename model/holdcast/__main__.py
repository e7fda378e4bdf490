"""``python -m holdcast``: the same as the command holdcast."""

from holdcast.cli import main

if __name__ == "__main__":
    main()
