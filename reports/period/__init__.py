"""The one-craft question: command, answer, words."""
