"""Page to come."""

import streamlit as st

st.title("give_and_take")
