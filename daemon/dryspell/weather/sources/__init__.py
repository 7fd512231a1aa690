"""One file a source of weather."""
