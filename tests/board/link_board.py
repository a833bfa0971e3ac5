"""A board at a real broker, on either Python: the stand-in app and a whole link, until it is killed.

    link_board.py PORT USER PASSWORD RECORDS LOGGER [CA]     CA: a certificate file, for TLS to localhost

Prints a line for each event of the link; `late` and the latest beat's delay in milliseconds every second.
"""

import asyncio
import sys

from link_rig import HOST, App, Net

from dewboard.broker_config import full, problem_of
from dewboard.link import Link


async def board(port, user, password, records, logger, ca):
    app = App()
    app.history.add(records)
    config = {"host": HOST, "port": port, "user": user, "password": password, "device": "attic", "commands": 1}
    config["logger"] = logger
    if ca:
        with open(ca) as file:
            config.update({"host": "localhost", "tls": 1, "ca": file.read()})
    problem = problem_of(config)
    if problem:
        print(problem)
        return
    link = Link(app, full(config), Net())
    if ca:
        link.address = HOST  # nobody is asked for localhost
    tasks = [asyncio.create_task(link.stay_connected()), asyncio.create_task(app.beats())]
    told = 0
    while tasks:
        await asyncio.sleep(0.2)
        texts = app.texts()[::-1]
        for text in texts[told:]:
            print(text)
        told = len(texts)
        print("late", app.late_ms, "freed", app.history.freed[1], "wish", int(app.settings.wish_pct))


if __name__ == "__main__":
    words = sys.argv[1:] + [""]
    asyncio.run(board(int(words[0]), words[1], words[2], int(words[3]), int(words[4]), words[5]))
