"""The screens and commands of Lastbite: they ask, show, collect and tell."""
