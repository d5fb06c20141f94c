"""
What flows between the rooms: tables and documents, with units and meanings.

Tables are described in `scanner.schema.tables`, one-of-a-kind documents in
`scanner.schema.documents`. Nothing here computes anything.
"""
