"""The chat surface: what a person sees and types."""
