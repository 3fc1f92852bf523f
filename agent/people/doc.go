// Package people knows who may work at the page: the operators of a shop, their
// PINs and badges, and who has signed in.
//
// # What protects what
//
// A PIN of four digits is found from its hash in minutes, whatever the hash; so
// the operators file is for its owner alone, and Read refuses one that is not.
// At the page wrong PINs lock. A badge carries 128 random bits and needs no lock.
//
// # Caveats
//
// Sessions and locks live in memory: a restart of the agent signs everybody out
// and forgets wrong PINs. What is signed is a name in a record; that the person
// stood at the press is not proved by it.
package people
