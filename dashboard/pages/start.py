"""The address without a page: `dashboard.app` goes on from here to the page that comes first today."""
