"""One module for each finding. The docstring of a module is the page that explains it."""
