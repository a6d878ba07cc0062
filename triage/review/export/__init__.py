"""Stored calls in the forms other programs and people read; see `triage.review.export_command`."""
