"""The pages: one file each, run by `ui.app` through Streamlit's navigation."""
