"""Every sentence that the tool writes about results, one small module per subject.

Functions take results and the units wanted and return plain text; nothing here is markup.
"""
