"""Encryption at rest: a key that a passphrase opens, and files that are sealed with it.

`key_file` keeps the data key, wrapped; `vault` holds it while a program runs and seals with it; `sealed` is the
form of a sealed file; `unlocking` finds the passphrase. With them alone nothing is decided: a data folder is
protected if a key file lies in it.
"""
