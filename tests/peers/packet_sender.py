"""Writes 50 packets to a port, made without any code of ours: `packet_sender.py PATH`.

Frame n carries load 2000.5 + n and depth 812.25 - n / 100; even frames also a time of n ms.
"""

import struct
import sys

import crcmod.predefined
from cobs import cobs

crc32c = crcmod.predefined.mkCrcFun("crc-32c")

with open(sys.argv[1], "wb", buffering=0) as port:
    port.write(b"\0")
    for number in range(50):
        time = struct.pack("<BQ", 1, 1000 * number) if number % 2 == 0 else b"\0"
        values = struct.pack("<BdBd", 1, 2000.5 + number, 1, 812.25 - number / 100)
        body = struct.pack("<BI", 1, number) + time + values
        port.write(cobs.encode(body + struct.pack("<I", crc32c(body))) + b"\0")
