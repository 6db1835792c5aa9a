"""Parts of the page *Quote a work*."""
