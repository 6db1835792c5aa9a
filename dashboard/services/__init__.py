"""From the database to results: each gathers frames from queries and gives them to the analysis. No SQL, no
Streamlit, no prose.
"""
