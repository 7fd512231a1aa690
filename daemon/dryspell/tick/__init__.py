"""One look at everything: weather in, every piece judged, what is worth saying decided, saved and sent."""
