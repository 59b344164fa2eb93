"""The scene file: its keys as written, read and checked one by one."""
