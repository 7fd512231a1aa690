"""The page, its JSON documents, calendars, metrics and health, served by the daemon."""
