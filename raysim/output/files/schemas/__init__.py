"""JSON Schemas of scenes and of every result, as `raysim schema` prints them.

A schema is strict: every key is in it, and no other key may stand in a record. So its version goes
up with **any** change that a program could notice: a key more or less, another unit, another
meaning, a new word in a list of words. The version stands in `schema_version` of each record.
`output/files/older.py` reads those of older versions.
"""
