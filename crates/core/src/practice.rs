//! A machine whose innards are hidden: to practise on, and to hold the bench to account.
