"""Errors that mean *we* asked for something impossible.

Bad bytes from the air are never an exception; they are an event with a reason
(`protocol.events.FrameRejected`).

    ProtocolError
     +-- TableError    a frame table that cannot be used
     +-- EncodeError   a sample that has no place in the table
"""

from __future__ import annotations


class ProtocolError(Exception):
    """Base of this package's errors; the message is one plain sentence."""


class TableError(ProtocolError, ValueError):
    """A frame table cannot be used.

    Example scenarios:
      - A field's range does not fit its type
      - A builder's kind uses a code that the standard kinds own
      - The file is not TOML
    """


class EncodeError(ProtocolError, ValueError):
    """A sample cannot be encoded.

    Example scenarios:
      - The kind or a field is not in the table
      - A value is text where a number belongs
    """
