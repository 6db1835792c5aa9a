"""Parts of the page *One work*."""
