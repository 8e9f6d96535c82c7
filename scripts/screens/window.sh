#!/bin/bash
# window.sh build SUITE ROOT     make a folder with a Blender that has a window (Debian; sid: 5.2.x), as root
# window.sh shot ROOT WxH [SECONDS]   run drive.py there; ROOT/shots holds ext.zip, drive.py, job/ and gets out/ and log.txt
set -euo pipefail
case $1 in
build)
  SUITE=$2 ROOT=$3; export DEBIAN_FRONTEND=noninteractive LC_ALL=C
  MIRROR=$(apt-get indextargets --format "\$(SITE)" | sort -u | head -n 1)   # the mirror that this system already uses
  if [ -z "$MIRROR" ]; then
    echo "window.sh: this system names no source of Debian packages (apt-get indextargets is empty): add one to apt first" >&2
    exit 1
  fi
  debootstrap --variant=minbase "$SUITE" "$ROOT" "$MIRROR"
  cp /etc/resolv.conf "$ROOT/etc/resolv.conf"
  cat > "$ROOT/etc/apt/apt.conf.d/99local" <<'CONF'
Acquire::Check-Valid-Until "false";
Acquire::Check-Date "false";
APT::Install-Recommends "false";
Acquire::Languages "none";
CONF
  printf 'force-unsafe-io\npath-exclude=/usr/share/doc/*\npath-exclude=/usr/share/man/*\npath-exclude=/usr/share/locale/*\n' \
    > "$ROOT/etc/dpkg/dpkg.cfg.d/slim"
  printf '#!/bin/sh\nexit 101\n' > "$ROOT/usr/sbin/policy-rc.d"; chmod +x "$ROOT/usr/sbin/policy-rc.d"
  chroot "$ROOT" apt-get update -q
  chroot "$ROOT" apt-get install -qy blender python3-numpy python3-requests python3-zstandard python3-cattr \
    xvfb xauth x11-apps netpbm libgl1 libglx-mesa0 libgl1-mesa-dri libegl1 libegl-mesa0
  chroot "$ROOT" apt-get clean; rm -rf "$ROOT"/var/lib/apt/lists/* ;;
shot)
  ROOT=$2 SIZE=$3 SECONDS_MOST=${4:-900}; W=${SIZE%x*} H=${SIZE#*x}
  # own mount and pid namespace: /proc for Blender, and nothing (Xvfb) outlives the run
  unshare --mount --pid --fork --kill-child bash -c '
    mount -t proc proc "$0/proc"
    mount --bind "$0/shots/job" "$0/scans"
    mount --bind "$0/shots/out/pictures" "$0/pictures"
    exec chroot "$0" /usr/bin/env -i HOME=/shots/home PATH=/usr/bin:/bin LANG=C.UTF-8 LIBGL_ALWAYS_SOFTWARE=1 \
      W="$1" H="$2" MOST="$3" bash -o pipefail -ec "
        blender --offline-mode --command extension install-file -r user_default -e /shots/ext.zip
        code=0; timeout -k 5 \$MOST xvfb-run -a -s \"-screen 0 \${W}x\${H}x24\" blender --offline-mode \
          --enable-event-simulate --python-exit-code 3 --window-geometry 0 0 \$W \$H --python /shots/drive.py 2>&1 \
          | tee /shots/log.txt || code=\$?
        cd /shots/out; for f in *.xwd; do xwdtopnm < \$f 2>/dev/null | pnmtopng > \${f%.xwd}.png 2>/dev/null; rm \$f; done; exit \$code"
  ' "$ROOT" "$W" "$H" "$SECONDS_MOST" ;;
esac
