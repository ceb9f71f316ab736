"""Nothing acknowledged is ever lost: killed servers, failing commits, full disks, many writers. The long runs are `rough`."""
