"""What there is to say of a piece: a topic a file, each with its rules, a `speak(talk)`, and a memory of its own."""
