"""What a finisher knows, as plain models."""
