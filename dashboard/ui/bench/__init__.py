"""Parts of the page *On the bench*."""
