"""The store: an index over the journals of years, for searching and comparing. The journals stay the only truth.

Everything in it can be thrown away and filled again. SQLite by default, PostgreSQL by address.
"""
