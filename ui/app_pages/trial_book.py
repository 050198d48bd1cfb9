"""Page to come."""

import streamlit as st

st.title("trial_book")
