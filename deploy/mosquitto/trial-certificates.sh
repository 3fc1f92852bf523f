#!/bin/sh
# Makes the certificates of a trial: an authority, a broker, presses, collectors,
# and the authority's list of revoked certificates. For a plant its own authority
# is better: this one keeps its key in the same folder, without a password.
#
#   trial-certificates.sh FOLDER broker NAME...   names and addresses of the broker
#   trial-certificates.sh FOLDER client NAME      a press or collector of that name
#   trial-certificates.sh FOLDER revoke NAME      takes its certificate back
#   trial-certificates.sh FOLDER list             a new list, good for 30 days
#
# It writes ca.crt, revoked.crl, broker.crt and broker.key, NAME.crt and NAME.key.
# Keys are for the one who runs it. Mosquitto reads as its own user: once copied,
#   chown mosquitto: /etc/mosquitto/certs/broker.key
# The authority's key, ca.key, goes nowhere.
# The authority is good for ten years, certificates for 397 days.
set -eu
umask 077

usage() {
	sed -n 's/^# \{0,3\}//; 2,15p' "$0" >&2
	exit 2
}

[ $# -ge 2 ] || usage
mkdir -p "$1"
cd "$1"
what=$2
shift 2

NAMES=DNS:localhost
export NAMES
cat >openssl.cnf <<'END'
[ca]
default_ca = trial
[trial]
database = index.txt
crlnumber = crlnumber
rand_serial = yes
new_certs_dir = .
certificate = ca.crt
private_key = ca.key
default_md = sha256
default_days = 397
default_crl_days = 30
policy = named
unique_subject = no
[named]
commonName = supplied
[req]
distinguished_name = name
prompt = no
[name]
commonName = trial
[authority]
basicConstraints = critical, CA:TRUE
keyUsage = critical, keyCertSign, cRLSign
subjectKeyIdentifier = hash
[broker]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = serverAuth
authorityKeyIdentifier = keyid
subjectAltName = ${ENV::NAMES}
[client]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = clientAuth
authorityKeyIdentifier = keyid
END

# quiet runs a command that talks much, and shows what it said if it fails.
quiet() {
	if ! said=$("$@" 2>&1); then
		printf '%s\n' "$said" >&2
		exit 1
	fi
}

# request FILE NAME makes a key and a request of that common name.
request() {
	quiet openssl req -config openssl.cnf -new -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes \
		-subj "/CN=$2" -keyout "$1.key" -out "$1.csr"
}

# sign KIND FILE has the authority sign a request.
sign() {
	quiet openssl ca -config openssl.cnf -batch -notext -extensions "$1" -in "$2.csr" -out "$2.crt"
	rm -f "$2.csr" ./*.pem
	chmod 644 "$2.crt"
}

list() {
	quiet openssl ca -config openssl.cnf -gencrl -out revoked.new
	chmod 644 revoked.new
	mv revoked.new revoked.crl
}

if [ ! -e ca.crt ]; then
	: >index.txt
	echo 01 >crlnumber
	quiet openssl req -config openssl.cnf -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 3650 \
		-extensions authority -subj "/CN=trial authority" -keyout ca.key -out ca.crt
	chmod 644 ca.crt
	list
fi

case $what in
broker)
	[ $# -ge 1 ] || usage
	NAMES=
	for name; do
		case $name in
		*:* | *[0-9].[0-9]*.[0-9]*.[0-9]*) NAMES="$NAMES,IP:$name" ;;
		*) NAMES="$NAMES,DNS:$name" ;;
		esac
	done
	NAMES=${NAMES#,}
	request broker "$1"
	sign broker broker
	;;
client)
	[ $# -eq 1 ] || usage
	case $1 in ca | broker | */*) usage ;; esac
	request "$1" "$1"
	sign client "$1"
	;;
revoke)
	[ $# -eq 1 ] || usage
	if [ ! -e "$1.crt" ]; then
		echo "$0: there is no certificate $1.crt in $PWD" >&2
		exit 1
	fi
	quiet openssl ca -config openssl.cnf -revoke "$1.crt"
	list
	;;
list) list ;;
*) usage ;;
esac
