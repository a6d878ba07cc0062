"""Reading back stored sessions."""
