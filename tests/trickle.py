"""A load that stops by itself: many connections to a port of this machine that send a letter at a time.

``python trickle.py PORT CONNECTIONS SECONDS`` keeps so many open, a quarter with half a head, the rest
with half a body, opens those again that were dropped, and says when all were opened. It ends after its time.
"""

from __future__ import annotations

import asyncio
import os
import sys
import time

HEAD = "GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nX-Slow: "
BODY = "POST /api/enter HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 4000\r\n\r\n{{"
MOST, LONGEST_S = 1000, 30.0
opened = 0


async def trickle(port: int, count: int, text: str, until: float) -> None:
    global opened
    while time.monotonic() < until:
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
        except OSError:
            await asyncio.sleep(0.2)
            continue
        opened += 1
        if opened == count:
            print("all opened", flush=True)
        try:
            writer.write(text.format(port=port).encode())
            while time.monotonic() < until and not reader.at_eof():
                writer.write(b"x")
                await writer.drain()
                await asyncio.sleep(0.5)
        except OSError:
            pass
        finally:
            writer.transport.abort()


async def load(port: int, count: int, seconds: float) -> None:
    count = min(count, MOST)
    until = time.monotonic() + min(seconds, LONGEST_S)
    texts = [BODY if k % 4 else HEAD for k in range(count)]
    await asyncio.gather(*(trickle(port, count, text, until) for text in texts))


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(10)
    asyncio.run(load(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])))
