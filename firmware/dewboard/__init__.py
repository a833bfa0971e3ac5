"""The board: drivers, pins, storage, network and page; imports dewcore and what MicroPython brings along."""

VERSION = "0.1.0"
