// Package archive writes a run to the central database, and reads it back.
//
// Rows are only ever added: a role that may append needs no other right, and a reading that was
// sent twice is the same row. Changed readings come again under a new revision, and a reader takes
// those of the newest revision that covers them. A revision counts once all its readings have
// arrived: until then a reader has what was there before.
//
// A run is sent by one store. Another one, such as that of a second watch with the same run file, is
// refused unless it takes over. What a copy of the store has sent before, or a copy of the database
// has lost, is found by the number of the newest delivery that both sides keep.
//
// # Growth
//
// Measured (TestGrowth, sites that vary six simulated rough runs, in the second column two, of 16 channels
// read once a minute; PostgreSQL 15 on two cores that 20 other processes used too, so rates are by processor time):
//
//	                                     1,000 sites, 6 hours   8 sites, 30 days
//	readings                                        5,840,000          5,544,000
//	readings/s on two cores                           123,000            280,000
//	bytes a reading on disk: row + key                92 + 73            92 + 90
//	processor time to read all of a site     37 ms for 5,840     2.1 s for 692,880
//	processor time for the list of sites                 3 ms              22 ms
//
// A batch of 20,000 readings is cheaper a reading than one of a few hundred: each site of the first
// column had one connection and one batch. The list with ten nights of 40 verdicts for each site
// takes 3, 2 and 14 ms for 10, 100 and 1,000 sites (TestListOfManySites).
//
// From that, by calculation: a site gives 691,200 readings and 0.12 GB a month.
//
//	sites      readings/s   part of two cores   disk a month
//	1,000             267               0.2 %        0.12 TB
//	10,000          2,667               2   %        1.2  TB
//	100,000        26,667              20   %       12    TB
//
// The disk is the first limit, then connections, then one machine. All that follows is PostgreSQL's own:
//
//   - 1,000 sites: one machine. Raise max_connections, or let watches send every ten minutes
//     (--ship-every). Old months go to a cheaper disk (ALTER TABLE ohmkeep.reading_2026_03 SET
//     TABLESPACE), or into a file and away (pg_dump of the partition, DETACH PARTITION, DROP): no other
//     month is touched.
//   - 10,000 sites: watches that send every ten minutes are some 17 connections a second, a few at a
//     time. The list and the pages of sites are read from a standby (streaming replication), so that
//     reading and receiving do not share a disk. New months are made as partitions that are
//     themselves partitioned by a hash of the site, on several disks (TestPartitionsOfTheOwner).
//   - 100,000 sites: several servers, each with a part of the sites. A site is on one server as a
//     whole: every key begins with it, and no statement of a watch joins two sites. Watches are given
//     the address of their server; the list is made of foreign tables (postgres_fdw) of their run and
//     verdict tables, and a view over these, which is some kB a site.
//
// A PostgreSQL that distributes tables by itself would spread them by the column site. It would still
// need: the numbers of sites from one place (site.id is an identity column), the roles and the
// functions with SECURITY DEFINER on every node, the staging table of a batch on the node of its
// site, and the policies, which ask for session_user, with the site's role as the session's.
package archive
