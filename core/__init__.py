"""Everything Lastbite decides: no screen, no terminal."""
