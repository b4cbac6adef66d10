"""What a receiver makes of bytes sent at another speed: the bits on the wire, sampled as a UART does it.

Start bit low, data from the lowest bit, even parity where there are seven bits, one stop bit high; a receiver waits for
a falling edge and samples in the middle of each of its own bits. A byte with a bad stop bit is passed on as it is.
"""

from calib.acquire.cell.baud import Setting

PAUSE_S = 0.01  # idle line between two lines of text


def on_the_wire(data: bytes, sender: Setting, receiver: Setting) -> bytes:
    """The bytes that arrive."""
    if sender == receiver:
        return data
    edges = _edges(data, sender)
    return bytes(_received(edges, receiver))


def _edges(data: bytes, sender: Setting) -> list[tuple[float, int]]:
    """Level from each time on. [s]"""
    step = 1 / sender.baud
    edges, at = [(0.0, 1)], PAUSE_S
    for byte in data:
        bits = [byte >> i & 1 for i in range(7 if sender.framing == "7E1" else 8)]
        parity = [sum(bits) % 2] if sender.framing == "7E1" else []
        for bit in [0, *bits, *parity, 1]:
            edges.append((at, bit))
            at += step
        at += PAUSE_S if byte == 10 else 0.0
    return edges


def _received(edges: list[tuple[float, int]], receiver: Setting) -> list[int]:
    received: list[int] = []
    step, i, free_at = 1 / receiver.baud, 0, 0.0
    while True:
        while i < len(edges) and not (edges[i][1] == 0 and edges[i][0] >= free_at and (i == 0 or edges[i - 1][1] == 1)):
            i += 1
        if i >= len(edges):
            return received
        begun, byte, k = edges[i][0], 0, i
        for bit in range(9):
            at = begun + (bit + 1.5) * step
            while k + 1 < len(edges) and edges[k + 1][0] <= at:
                k += 1
            if bit < 8:
                byte |= edges[k][1] << bit
        received.append(byte)
        free_at = begun + 9.5 * step
