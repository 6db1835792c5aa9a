"""Parts of the page *Our rates*."""
