"""The bytes of one file to a record of what it says; knows no archive."""
