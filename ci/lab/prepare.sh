# Sourced by `run` and CI: `prepare_lab` makes what the lab boots from, once for each kernel, and sets `machine` and `boot`.

lab="$root/.lab"
programs=(qemu-system-x86_64 faketime busybox cpio depmod hostapd wpa_supplicant dnsmasq ip tc iw v4l2-ctl tshark)
packages="qemu-system-x86 faketime busybox-static cpio kmod hostapd wpasupplicant dnsmasq-base iproute2 iw v4l-utils tshark"
first_modules=(virtio_pci virtio_console 9pnet_virtio 9p overlay)
first_folders=(bin dev proc sys lower kernel over new)
processor=(-smp 2 -m 3G)
pace=0.7 # of the lab's clocks where the processor is emulated: to what runs in there it is faster by so much, and keeps up
boot="console=hvc0 quiet panic=-1 mitigations=off random.trust_cpu=on"
export PATH="$PATH:/usr/sbin:/sbin"

prepare_lab() {
    local missing=() program
    for program in "${programs[@]}"; do
        command -v "$program" >/dev/null || missing+=("$program")
    done
    if [ ${#missing[@]} -gt 0 ]; then
        echo "lab: not there: ${missing[*]}. On Debian: apt-get install $packages" >&2
        return 1
    fi
    [ -e "$lab/ready" ] || make_lab || return 1
    machine=(
        qemu-system-x86_64 "${processor[@]}" $(cat "$lab/ready") -nodefaults -no-reboot -display none
        -kernel "$lab/vmlinux" -initrd "$lab/first.cpio"
        -device virtio-serial-pci -chardev file,id=said,path=/dev/stdout -device virtconsole,chardev=said
        -device virtio-rng-pci
        -virtfs local,path=/,mount_tag=root,security_model=none,readonly=on,multidevs=remap
        -virtfs "local,path=$lab/kernel,mount_tag=kernel,security_model=none,readonly=on"
    )
    if grep -q tcg "$lab/ready"; then machine=(faketime -m -f "+0 x$pace" "${machine[@]}"); fi
}

# What is compiled in the lab takes long, and is gone with the machine.
compile_all() {
    [ ! -x "$root/.venv/bin/python" ] || "$root/.venv/bin/python" -m compileall -q -j 0 "$root"/{hil,fixtures,tests,.venv/lib} || true
}

make_lab() {
    local package
    echo "Making the lab in $lab (once) …" >&2
    rm -rf "$lab"
    mkdir -p "$lab/kernel/usr" "$lab/package"
    package="$(apt-cache depends linux-image-amd64 | sed -n 's/^ *Depends: \(linux-image-[0-9].*\)/\1/p' | head -n 1)"
    (cd "$lab/package" && apt-get -qq -o APT::Sandbox::User=root download "${package:?lab: apt knows no kernel: run apt-get update}") || return 1
    dpkg-deb -x "$lab/package/"*.deb "$lab/package/tree" || return 1
    # Where /lib is a link, a folder of that name below it would not be seen.
    mv "$lab/package/tree/lib" "$lab/kernel/usr/lib"
    version="$(ls "$lab/kernel/usr/lib/modules")"
    depmod -b "$lab/kernel/usr" "$version" || return 1
    python3 "$root/ci/lab/unpack_kernel.py" "$lab/package/tree/boot/vmlinuz-$version" "$lab/vmlinux" || return 1
    first_file_system || return 1
    rm -rf "$lab/package"
    fastest_processor >"$lab/ready"
}

# What is needed to reach this machine's files, and no more: it is copied into memory at each boot.
first_file_system() {
    local first="$lab/first" folder file
    for folder in "${first_folders[@]}"; do mkdir -p "$first/$folder"; done
    cp "$(command -v busybox)" "$first/bin/busybox"
    install -m 755 "$root/ci/lab/init" "$first/init"
    modprobe -d "$lab/kernel/usr" -S "$version" --show-depends -a "${first_modules[@]}" |
        sed -n 's/^insmod \([^ ]*\).*/\1/p' | sort -u | while read -r file; do
        install -D -m 644 "$file" "$first/lib/modules/$version/$(basename "$file")"
    done
    cp "$lab/kernel/usr/lib/modules/$version/modules.builtin" "$lab/kernel/usr/lib/modules/$version/modules.order" \
        "$first/lib/modules/$version/"
    depmod -b "$first" "$version" 2>/dev/null
    (cd "$first" && find . | cpio --quiet -o -H newc -R 0:0) >"$lab/first.cpio"
    rm -rf "$first"
}

# Hardware virtualisation may be there and boot nothing all the same: tried once, with a limit.
fastest_processor() {
    local fast="-accel kvm -cpu host" sure="-accel tcg,thread=multi -cpu Nehalem"
    local trial=(qemu-system-x86_64 -m 512M $fast -nodefaults -no-reboot -display none -kernel "$lab/vmlinux" -initrd "$lab/first.cpio")
    if [ -w /dev/kvm ] && (timeout --signal=KILL 10 "${trial[@]}" -append "$boot lab=trial" || false) >/dev/null 2>&1 </dev/null; then
        echo "$fast"
    else
        echo "$sure"
    fi
}
