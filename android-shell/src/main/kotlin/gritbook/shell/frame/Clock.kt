package gritbook.shell.frame

import gritbook.core.Moment
import java.util.TimeZone

/** This device's clock, as the book takes it. Whether it may be believed is the book's to say. */
object Clock {
    /** Tests set it. */
    @Volatile
    var read: () -> Long = System::currentTimeMillis

    fun now(): Moment {
        val ms = read()
        return Moment(utcMs = ms, offsetS = TimeZone.getDefault().getOffset(ms) / 1000)
    }
}
