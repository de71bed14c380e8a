"""The design book: a whole library of designs, scanned, kept and asked."""
