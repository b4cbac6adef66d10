"""What a port makes of bytes that were sent at another speed: bit by bit, as a receiver samples the line."""


def misread(data: bytes, *, sent: int, read: int) -> bytes:
    """Bytes received when bytes sent without a pause (8N1) are read at another speed.

    Args:
        data: As sent.
        sent: Speed of the board. [bit/s]
        read: Speed of the port. [bit/s]

    The receiver waits for the line to fall, then looks at it in the middle of each of its own bits. A byte without a
    stop bit is given as it is, as the usual drivers do.
    """
    line = [bit for byte in data for bit in (0, *(byte >> i & 1 for i in range(8)), 1)]
    ratio = sent / read
    received, at = bytearray(), 0.0
    while True:
        begin = next((i for i in range(int(at), len(line)) if line[i] == 0), None)
        if begin is None or begin + 10 * ratio > len(line):
            return bytes(received)
        start = max(float(begin), at)
        bits = [line[int(start + (1.5 + i) * ratio)] for i in range(8)]
        received.append(sum(bit << i for i, bit in enumerate(bits)))
        at = start + 9.5 * ratio
