"""The decision: pure Python that reads no clock, touches no hardware and does no input or output."""
