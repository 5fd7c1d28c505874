"""The desk in the browser: pages served to this computer alone.

serve   the server, and the address that opens it     guard   who is let in, and what a page may do
app     which address leads to which page             pages/  one module a page
"""
