"""Small bugs put into the code on purpose: which of them do a module's own tests notice?

Not part of the build: hours. Survivors are read; each is killed by a test, or written into
`equivalent.txt` with the reason why nothing can notice it.
"""
