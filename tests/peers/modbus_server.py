"""A Modbus RTU device built on pymodbus: `modbus_server.py serial PATH` or `modbus_server.py tcp PORT`.

Unit 17. Holding and input registers from address 100:
  100       i16  -2
  101       u16  65534
  102, 103  i32  -70000, most significant word first
  104, 105  u32  3000000000, least significant word first
  106, 107  f32  2345.5, most significant word first
  108, 109  f32  -0.125, least significant word first
No other register exists: asking for one gives an exception. Other units are silent (pymodbus would
answer for them with an exception, which is withheld).
"""

import asyncio
import struct
import sys

from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice


def words(layout, value, swap=False):
    data = struct.pack(layout, value)
    pair = [int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2)]
    return pair[::-1] if swap else pair


REGISTERS = (
    words(">h", -2)
    + words(">H", 65534)
    + words(">i", -70000)
    + words(">I", 3000000000, swap=True)
    + words(">f", 2345.5)
    + words(">f", -0.125, swap=True)
)


def only_own_answers(sending, data):
    return b"" if sending and data[:1] != b"\x11" else data


async def main(kind, where):
    device = SimDevice(17, SimData(100, values=REGISTERS, datatype=DataType.REGISTERS))
    if kind == "serial":
        server = ModbusSerialServer(device, framer=FramerType.RTU, port=where, baudrate=19200, trace_packet=only_own_answers)
    else:
        server = ModbusTcpServer(device, framer=FramerType.RTU, address=("127.0.0.1", int(where)), trace_packet=only_own_answers)
    serving = asyncio.create_task(server.serve_forever(background=False))
    await asyncio.sleep(0.3)
    print("ready", flush=True)
    await serving


asyncio.run(main(sys.argv[1], sys.argv[2]))
