"""Kernels forked warm, as papermill and nbclient start them; as an engine too: `papermill --engine growth-warm`."""

from __future__ import annotations

import asyncio
import os
import sys
from pathlib import Path
from typing import Any
from uuid import uuid4

from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning.local_provisioner import LocalProvisioner

from growth.sweep.warm_kernels import kernel, unavailable

_said: set[str] = set()


class WarmKernelManager(AsyncKernelManager):
    """The stock manager, with our provisioner unless the kernel's specification names one."""

    async def start_kernel(self, **kwargs: Any) -> None:  # type: ignore[override]  # as AsyncKernelManager does
        """Start the kernel; keywords are those of AsyncKernelManager.start_kernel."""
        spec = self.kernel_spec
        if self.provisioner is None and spec is not None and not spec.metadata.get("kernel_provisioner"):
            self.kernel_id = self.kernel_id or str(uuid4())
            self.provisioner = WarmProvisioner(kernel_id=self.kernel_id, kernel_spec=spec, parent=self)
        await super().start_kernel(**kwargs)


class WarmProvisioner(LocalProvisioner):
    """Fork the kernel if possible, otherwise launch it as usual and say so once.

    Only this Python's ipykernel can be forked: a kernel of another language or environment is launched as usual.
    """

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        """The kernel's connection, as LocalProvisioner.launch_kernel gives it."""
        reason = unavailable() or _unlike_ours(cmd)
        if reason:
            if reason not in _said:
                _said.add(reason)
                self.log.warning(reason)
            return await super().launch_kernel(cmd, **kwargs)
        cwd = kwargs.get("cwd") or os.getcwd()
        argv = ["ipykernel_launcher", *cmd[cmd.index("-m") + 2 :]]
        forked = kernel()
        forked.launch(argv, env=kwargs.get("env") or dict(os.environ), cwd=str(cwd))
        self.process = forked  # type: ignore[assignment]  # it has the methods of Popen that are used
        self.pid, self.pgid, self.cwd = forked.pid, None, Path(cwd)
        return self.connection_info

    async def wait(self) -> int | None:
        """Wait for the end; looks more often than the stock one, since a forked kernel ends at once."""
        while self.process and self.process.poll() is None:
            await asyncio.sleep(0.005)
        return await super().wait()


class WarmEngine:
    """papermill's own engine with other kernels, so that outputs are the same.

    It hands on to papermill's engine instead of deriving from it: papermill loads this class while it is itself being
    imported.
    """

    @classmethod
    def execute_notebook(cls, nb: Any, kernel_name: str, **kwargs: Any) -> Any:
        """Run the notebook's cells; keywords are those of papermill's NBClientEngine."""
        from papermill.engines import NBClientEngine

        kwargs.setdefault("kernel_manager_class", WarmKernelManager)
        return NBClientEngine.execute_notebook(nb, kernel_name, **kwargs)

    @classmethod
    def nb_kernel_name(cls, nb: Any, name: str | None = None) -> str:
        """The notebook's kernel, or the one named."""
        from papermill.engines import NBClientEngine

        return NBClientEngine.nb_kernel_name(nb, name)

    @classmethod
    def nb_language(cls, nb: Any, language: str | None = None) -> str:
        """The notebook's language, or the one named."""
        from papermill.engines import NBClientEngine

        return NBClientEngine.nb_language(nb, language)


def _unlike_ours(cmd: list[str]) -> str:
    """Why this command is not the kernel that the fork server holds; "" if it is."""
    same = os.path.realpath(cmd[0]) == os.path.realpath(sys.executable) or os.path.basename(cmd[0]) == cmd[0]
    if same and cmd[1:3] and "ipykernel_launcher" in cmd and "-m" in cmd:
        return ""
    return f"warm kernels serve this Python's ipykernel alone; {os.path.basename(cmd[0])} is started as usual"
