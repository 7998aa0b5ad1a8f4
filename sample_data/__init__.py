"""An invented club's logbook, and the script that makes it."""
