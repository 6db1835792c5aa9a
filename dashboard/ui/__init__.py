"""Parts of which pages are built: cached data, the frame of a page, shared fields and forms. Streamlit stands
here and in the pages alone.
"""
