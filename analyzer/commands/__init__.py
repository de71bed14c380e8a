"""See DEVELOPERS.md."""
