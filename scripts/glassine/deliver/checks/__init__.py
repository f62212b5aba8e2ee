"""What the records of a delivered package say, held against its files and against one another.

Nothing here needs a receipt: a bag whose manifests were made anew after a change still has records
that do not fit. Each check yields findings with paths below the bag.
"""
