@echo off
rem Double-click to start Boleward on this computer. The first start installs it into this folder.
setlocal
title Boleward
cd /d "%~dp0..\.."

set "PY="
py -3 -c "import sys; sys.exit(sys.version_info < (3, 11))" >nul 2>nul && set "PY=py -3"
if not defined PY python -c "import sys; sys.exit(sys.version_info < (3, 11))" >nul 2>nul && set "PY=python"
if not defined PY goto no_python

if exist .venv\Scripts\boleward.exe goto start
echo Installing Boleward into this folder. This needs the internet once and takes a few minutes.
%PY% -m venv .venv || goto failed
.venv\Scripts\python.exe -m pip --disable-pip-version-check install --quiet --require-hashes -r requirements-run.lock || goto failed
.venv\Scripts\python.exe -m pip --disable-pip-version-check install --quiet --no-deps --no-build-isolation --editable . || goto failed

:start
echo Starting. A browser window opens; close this black window to stop Boleward.
.venv\Scripts\boleward.exe serve --open || goto failed
exit /b 0

:no_python
echo Boleward needs Python 3.11 or newer, and found none on this computer.
echo Ask whoever looks after it to install Python for all programs, then double-click again.
echo The page FOR-IT.md beside this file tells them what this is.
pause
exit /b 2

:failed
echo.
echo This did not work. The lines above say why; the page FOR-IT.md beside this file may help.
pause
exit /b 1
