"""The documents over HTTP, and what changes the record, for other programs: under /api/v1, told by OpenAPI."""
