"""One table of weather, whatever the source."""
