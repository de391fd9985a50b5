"""The playing window: the pointer is the hand."""
