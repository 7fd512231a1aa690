"""Pure numpy: one physical idea a file. Nothing here knows a clock, a network, a file or a configuration."""
