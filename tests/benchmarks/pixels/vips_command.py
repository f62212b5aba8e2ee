"""One operation of libvips in a process of its own, as the program `vips` does it.

    python -I -S vips_command.py LIBRARY similarity in.tif out.v --angle 1.5 --interpolate bicubic

For machines that have the library (in the wheel of pyvips-binary) and not its programs. What `vips`
does is done by the same functions (vips_call_argv and its kin, libvips' own `tools/vips.c`), and
Python without its packages starts in some 15 ms.
"""

import ctypes
import sys


def main(library: str, name: str, *arguments: str) -> int:
    vips = ctypes.CDLL(library)
    vips.vips_operation_new.restype = ctypes.c_void_p
    vips.vips_error_buffer.restype = ctypes.c_char_p
    vips.vips_init(b"vips")
    operation = ctypes.c_void_p(vips.vips_operation_new(name.encode()))
    required: list[bytes] = []
    rest = iter(arguments)
    failed = not operation
    for each in rest:
        if each.startswith("--"):
            key, value = each[2:].encode(), next(rest).encode()
            failed = failed or vips.vips_object_set_argument_from_string(operation, key, value) != 0
        else:
            required.append(each.encode())
    values = (ctypes.c_char_p * len(required))(*required)
    failed = failed or vips.vips_call_argv(operation, len(required), values) != 0
    if failed:
        sys.stderr.write(vips.vips_error_buffer().decode("utf-8", "replace"))
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
