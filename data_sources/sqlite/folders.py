"""Is this folder one that a network or a syncing service stands behind?

SQLite's write-ahead log needs shared memory, which network drives do not give, and a syncing service
may copy the log and the database at different times. There the older rollback mode is used.
"""

from __future__ import annotations

import re
import sys
from contextlib import suppress
from pathlib import Path

_NETWORK_TYPES = re.compile(
    r"nfs\d?|cifs|smb\w*|afpfs|afs|9p|ceph|glusterfs|lustre|webdav|davfs|ncpfs|osxfuse|macfuse|"
    r"fuse\.(sshfs|rclone|davfs2?|glusterfs|s3fs|gcsfuse)"
)
_SYNCED_NAMES = re.compile(
    r"(dropbox|onedrive|google ?drive|my drive|icloud ?drive|mobile documents|cloudstorage|"
    r"nextcloud|owncloud|pclouddrive|syncthing|mega|seafile|box sync)( ?\(.*\)| ?-.*)?",
    re.IGNORECASE,
)
_SYNCED_MARKERS = (".stfolder", ".dropbox", ".dropbox.cache", ".sync", ".owncloudsync.log")
PROC_MOUNTS = Path("/proc/self/mounts")  # Linux


def why_not_shared_memory(folder: Path) -> str | None:
    """What makes the folder unfit for the write-ahead log, in words; None when nothing does."""
    folder = folder.resolve()
    if sys.platform == "win32":
        import ctypes

        if str(folder).startswith("\\\\") or ctypes.windll.kernel32.GetDriveTypeW(folder.anchor) == 4:
            return "is on a network drive"
    else:
        kind = file_system_of(folder, _mounts(folder))
        if kind and _NETWORK_TYPES.fullmatch(kind):
            return f"is on a network drive ({kind})"
    for part in (folder, *folder.parents):
        if _SYNCED_NAMES.fullmatch(part.name) or any((part / m).exists() for m in _SYNCED_MARKERS):
            return f"is inside the synced folder '{part.name}'"
    return None


def file_system_of(folder: Path, mounts: list[tuple[str, str]]) -> str | None:
    """Type of the file system the folder is on: that of the longest mount point above it.

    >>> file_system_of(Path("/srv/garden"), [("/", "ext4"), ("/srv", "nfs4"), ("/srv2", "ext4")])
    'nfs4'
    """
    above = [(len(Path(p).parts), n) for n, (p, _) in enumerate(mounts) if folder.is_relative_to(p)]
    return mounts[max(above)[1]][1] if above else None  # of two at one point the later hides the earlier


def _mounts(folder: Path) -> list[tuple[str, str]]:
    # not knowing the drive is no reason not to open the database
    with suppress(OSError):
        if PROC_MOUNTS.exists():
            return parse_proc_mounts(PROC_MOUNTS.read_text(errors="replace"))
    if folder.parts[1:2] in (("Volumes",), ("Network",)):
        import subprocess  # only here: it costs every command 8 ms to load

        with suppress(OSError, subprocess.SubprocessError):
            listed = subprocess.run(["/sbin/mount"], capture_output=True, text=True, timeout=5, check=False)
            return parse_mount_command(listed.stdout)
    return []


def parse_proc_mounts(text: str) -> list[tuple[str, str]]:
    r"""Mount points and types from Linux' list of mounts, where a space is written \040.

    >>> parse_proc_mounts("server:/x /media/my\\040disk nfs4 rw 0 0\n")
    [('/media/my disk', 'nfs4')]
    """
    rows = (line.split(" ") for line in text.splitlines())
    octal = re.compile(r"\\([0-7]{3})")
    return [(octal.sub(lambda m: chr(int(m[1], 8)), row[1]), row[2]) for row in rows if len(row) >= 3]


def parse_mount_command(text: str) -> list[tuple[str, str]]:
    """Mount points and types from what `mount` prints on macOS.

    >>> parse_mount_command("//me@server/trees on /Volumes/trees (smbfs, nodev, nosuid)")
    [('/Volumes/trees', 'smbfs')]
    """
    return re.findall(r"^.* on (/.*) \(([^,)]+)", text, re.MULTILINE)
