"""The pages and charts of the app.

Knows the session, the controls and the layout of the pages, and draws on the screen the charts that `report` describes.
Gives what `app.py` registers. Holds no rule of the model and no file format: a page collects input, calls one function
of another room and shows the result. The only room that imports Streamlit.
"""
