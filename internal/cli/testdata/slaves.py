"""Modbus RTU slaves of Debian's python3-pymodbus on one serial port: slaves.py PORT.

Each line of standard input sets registers: SLAVE FUNCTION ADDRESS VALUE...
"absent SLAVE" takes a slave away, which then answers nothing.
"""
import asyncio
import os
import sys

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server import StartAsyncSerialServer
from pymodbus.transaction import ModbusRtuFramer


def slave():
    return ModbusSlaveContext(ir=ModbusSequentialDataBlock(0, [0] * 16), hr=ModbusSequentialDataBlock(0, [0] * 16), zero_mode=True)


async def main():
    slaves = {1: slave(), 2: slave()}
    context = ModbusServerContext(slaves=slaves, single=False)
    loop = asyncio.get_running_loop()
    commands = asyncio.StreamReader()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(commands), sys.stdin)

    async def follow():
        while line := await commands.readline():
            words = line.decode().split()
            if words[0] == "absent":
                del context[int(words[1])]
            else:
                unit, function, address, *values = [int(w) for w in words]
                if unit not in context.slaves():
                    context[unit] = slave()
                context[unit].setValues(function, address, values)
            print("done", flush=True)
        os._exit(0)

    following = asyncio.ensure_future(follow())
    await StartAsyncSerialServer(context=context, framer=ModbusRtuFramer, port=sys.argv[1], baudrate=9600, stopbits=2,
                                 ignore_missing_slaves=True)
    await following


asyncio.run(main())
