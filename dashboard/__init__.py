"""The screens: Streamlit pages over the store."""
