"""The true speed of the vehicle at every moment, from its track."""
