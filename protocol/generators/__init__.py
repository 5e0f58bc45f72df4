"""One module for each thing that is generated from the frame table.

Each is a pure function from a `Table` to text: the same table gives the same bytes, on every
machine. `protocol.generate` writes them to their files.
"""
