"""The desk in the browser: pages served to this computer alone.

serve   the server, and the address that opens it     guard   who is let in, and what a page may do
app     which address leads to which page             pages/  one module a page
answer  what every page is made with                  bench   the reading, kept ready for changes
rows    a record laid out as rows of values           words   its words, each with its time
adding  what can be put into a record                 decisions  what can be done about a notice
when    times in words                                mishaps  what nobody expected
"""
