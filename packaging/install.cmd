@echo off
rem Puts the plugins where DAWs look for them, and the programs beside other programs. Windows.
rem
rem   install.cmd                       for you
rem   install.cmd /system               for everybody (as administrator)
rem   install.cmd /uninstall            takes all of it away again (with /system: for everybody)
setlocal
cd /d "%~dp0"
set "inside=Sumproof.vst3\Contents\x86_64-win"
set "everybody="
set "away="
:words
if "%~1"=="" goto folders
if /i "%~1"=="/system" (
    set "everybody=1"
) else if /i "%~1"=="/uninstall" (
    set "away=1"
) else (
    echo install.cmd: '%~1' is not expected; it takes /system and /uninstall 1>&2
    exit /b 2
)
shift
goto words

:folders
rem The folders that the documents of CLAP and VST3 name.
if defined everybody (
    set "clap=%CommonProgramFiles%\CLAP"
    set "vst3=%CommonProgramFiles%\VST3"
    set "programs=%ProgramFiles%\Sumproof"
) else (
    set "clap=%LOCALAPPDATA%\Programs\Common\CLAP"
    set "vst3=%LOCALAPPDATA%\Programs\Common\VST3"
    set "programs=%LOCALAPPDATA%\Programs\Sumproof"
)
if defined away goto uninstall

if not exist "%clap%" mkdir "%clap%" || goto refused
if not exist "%vst3%" mkdir "%vst3%" || goto refused
if not exist "%programs%" mkdir "%programs%" || goto refused
rem A DAW that is open holds the old plugin, and then nothing is changed.
if exist "%clap%\Sumproof.clap" del /q "%clap%\Sumproof.clap"
if exist "%clap%\Sumproof.clap" goto held
if exist "%vst3%\Sumproof.vst3" rmdir /s /q "%vst3%\Sumproof.vst3"
if exist "%vst3%\Sumproof.vst3" goto held
copy /y "Sumproof.clap" "%clap%\Sumproof.clap" >nul || goto refused
echo installed %clap%\Sumproof.clap
mkdir "%vst3%\%inside%" || goto refused
copy /y "%inside%\Sumproof.vst3" "%vst3%\%inside%\Sumproof.vst3" >nul || goto refused
echo installed %vst3%\Sumproof.vst3
for %%f in (sumproof-standalone.exe sumproof.exe) do (
    copy /y "%%f" "%programs%\%%f" >nul || goto refused
    echo installed %programs%\%%f
)
echo let your DAW scan for new plugins; "install.cmd /uninstall" takes all of it away again
exit /b 0

:uninstall
if exist "%clap%\Sumproof.clap" del /q "%clap%\Sumproof.clap" && echo removed %clap%\Sumproof.clap
if exist "%vst3%\Sumproof.vst3" rmdir /s /q "%vst3%\Sumproof.vst3" && echo removed %vst3%\Sumproof.vst3
for %%f in (sumproof-standalone.exe sumproof.exe) do (
    if exist "%programs%\%%f" del /q "%programs%\%%f" && echo removed %programs%\%%f
)
if exist "%programs%" rmdir "%programs%" 2>nul
if exist "%clap%\Sumproof.clap" goto held
if exist "%vst3%\Sumproof.vst3" goto held
exit /b 0

:held
echo install.cmd: the old plugin can't be replaced; close your DAW, then run this again 1>&2
exit /b 1

:refused
echo install.cmd: something could not be written; for everybody, run it as administrator 1>&2
exit /b 1
