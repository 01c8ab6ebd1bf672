"""The parts of the page, in order; a new part is a module here and one line in `page`."""
