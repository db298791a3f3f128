"""What a user writes with, and how a design is loaded and checked."""
