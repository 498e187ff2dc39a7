#!/bin/sh
# Runs a command as root with accounts, homes and temporary files of its own, so that a test makes accounts and leaves
# none behind. Give a scratch folder, this Python's home and the command; call it through "unshare --mount".
set -e
scratch=$1 python_home=$2
shift 2
mount --make-rprivate /
mkdir -p "$scratch/python" "$scratch/etc" "$scratch/home"
mount --bind "$python_home" "$scratch/python"
case $python_home in
/root/*)
    mount -t tmpfs -o mode=755 none /root # a Python under root's home, where no learner comes
    mkdir -p "$python_home"
    mount --bind "$scratch/python" "$python_home"
    ;;
esac
test -e "$scratch/etc/passwd" || cp -a /etc/. "$scratch/etc"
sed -i 's/^UID_MIN.*/UID_MIN 61000/; s/^UID_MAX.*/UID_MAX 61999/' "$scratch/etc/login.defs" # nobody's on this machine
mount --bind "$scratch/etc" /etc
mount --bind "$scratch/home" /home
exec "$@"
