"""The screens, one file each; navigation is in main.py."""
