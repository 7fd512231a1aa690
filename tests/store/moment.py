from datetime import UTC, datetime

NOW = datetime(2026, 6, 2, 12, tzinfo=UTC)
