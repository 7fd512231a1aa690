"""What people and programs ask of the state, gathered once for commands, page and API, and as JSON documents."""
