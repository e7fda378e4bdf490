"""Fetch one pinned release of pip, for a Python that carries neither pip nor ensurepip.

Run by setup.sh as ``python fetch_pip.py FOLDER``; prints the wheel's path, run as ``python WHEEL/pip``.
Written for Python 3.8 and newer, standard library only.
"""

import hashlib
import os
import re
import ssl
import sys
import urllib.parse
import urllib.request
from pathlib import Path

WHEEL = "pip-25.3-py3-none-any.whl"
SHA256 = "9655943313a94722b7774661c21049070f6bbb0a1516bf02f7c8d5d9201514cd"
PUBLIC_INDEX = "https://pypi.org/simple"


def read(url: str) -> bytes:
    """Return what an address holds, trusting the certificates that pip is told to trust."""
    if not url.startswith(("https://", "http://")):
        raise SystemExit(f"the package index {url!r} is not a web address")
    context = ssl.create_default_context(cafile=os.environ.get("PIP_CERT") or None)
    with urllib.request.urlopen(url, timeout=60, context=context) as answer:  # noqa: S310  (scheme checked above)
        return bytes(answer.read())


def wheel_address(page: str, page_address: str) -> str:
    """Find the wheel's address in an index page, in its HTML or JSON form."""
    quoted = re.findall(r"""["']([^"'\s]*""" + re.escape(WHEEL) + r"""(?:#[^"'\s]*)?)["']""", page)
    if not quoted:
        raise SystemExit(f"{page_address} does not list {WHEEL}")
    # A JSON page gives the bare file name too; the address is the longer one.
    return urllib.parse.urljoin(page_address, max(quoted, key=len))


def main(folder: str) -> None:
    """Write the checked wheel into `folder` and print its path."""
    index = os.environ.get("PIP_INDEX_URL") or PUBLIC_INDEX
    page_address = index.rstrip("/") + "/pip/"
    content = read(wheel_address(read(page_address).decode("utf-8"), page_address).partition("#")[0])
    if hashlib.sha256(content).hexdigest() != SHA256:
        raise SystemExit(f"{WHEEL} from {index} is not the file expected: its SHA-256 digest differs")
    target = Path(folder) / WHEEL
    target.write_bytes(content)
    print(target)


if __name__ == "__main__":
    main(sys.argv[1])
