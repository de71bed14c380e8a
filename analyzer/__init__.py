"""prehoop: whether an embroidery design will stitch true on these goods, and what to put behind it."""
