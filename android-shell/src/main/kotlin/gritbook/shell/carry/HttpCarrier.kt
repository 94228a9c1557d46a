package gritbook.shell.carry

import gritbook.core.Answer
import gritbook.core.Body
import gritbook.core.Header
import gritbook.core.HttpMethod
import gritbook.core.Request
import gritbook.core.Transport
import gritbook.core.TransportException
import java.io.ByteArrayOutputStream
import java.io.EOFException
import java.io.File
import java.io.IOException
import java.io.OutputStream
import java.io.RandomAccessFile
import java.net.ConnectException
import java.net.HttpURLConnection
import java.net.NoRouteToHostException
import java.net.SocketTimeoutException
import java.net.URL
import java.net.UnknownHostException
import javax.net.ssl.HttpsURLConnection

/**
 * Carries one request at a time to the depot by the platform's own HTTP. It follows no redirects, sends a photo's part as a stream from
 * its file, and decides nothing: what an answer means is the book's to say. With [keySha256] it sends to the depot that holds that key and to
 * no other; without one the phone's own trust decides.
 */
class HttpCarrier(depot: String, private val token: String, keySha256: String? = null, private val patience: Patience = Patience()) : Transport {
    /** How long to wait, ms. */
    class Patience(val connectMs: Int = 10_000, val readMs: Int = 60_000)

    private val base = depot.trimEnd('/')
    private val key = keySha256?.let(::OneKey)

    @Volatile
    private var cancelled = false

    @Volatile
    private var open: HttpURLConnection? = null

    /** Ends the request that is on its way, and every later one. From any thread. */
    fun cancel() {
        cancelled = true
        open?.let { Thread({ it.disconnect() }, "gritbook-cancel").start() }
    }

    override fun carry(request: Request): Answer {
        if (cancelled) throw TransportException.Cancelled("stopped")
        var connected = false
        try {
            val url = URL(base + request.path)
            if (!allowed(url)) throw TransportException.NotTrusted("the depot's address is not https")
            val link = url.openConnection() as HttpURLConnection
            open = link
            key?.guard(link as? HttpsURLConnection ?: throw TransportException.NotTrusted("a depot's key was enrolled, but its address is not https"))
            link.instanceFollowRedirects = false
            link.useCaches = false
            link.connectTimeout = patience.connectMs
            link.readTimeout = patience.readMs
            method(link, request.method)
            request.headers.forEach { link.setRequestProperty(it.name, it.value) }
            link.setRequestProperty("Authorization", "Bearer $token")
            link.setRequestProperty("Accept-Encoding", "identity")
            prepare(link, request.body)
            link.connect()
            connected = true
            send(link, request.body)
            return answer(link)
        } catch (error: TransportException) {
            throw error
        } catch (error: IOException) {
            throw fault(error, connected)
        } finally {
            open?.disconnect()
            open = null
        }
    }

    private fun method(link: HttpURLConnection, method: HttpMethod) {
        // The platform's class knows no PATCH.
        link.requestMethod = if (method == HttpMethod.PATCH) "POST" else method.name
        if (method == HttpMethod.PATCH) link.setRequestProperty("X-HTTP-Method-Override", "PATCH")
    }

    private fun prepare(link: HttpURLConnection, body: Body) {
        val length = when (body) {
            is Body.Bytes -> body.bytes.size.toLong()
            is Body.File -> body.lengthBytes.toLong()
            is Body.Empty -> if (link.requestMethod == "POST" || link.requestMethod == "PUT") 0L else return
        }
        link.doOutput = true
        link.setFixedLengthStreamingMode(length)
    }

    private fun send(link: HttpURLConnection, body: Body) {
        if (!link.doOutput) return
        link.outputStream.use { out ->
            when (body) {
                is Body.Bytes -> out.write(body.bytes)
                is Body.File -> pour(File(body.path), body.offsetBytes.toLong(), body.lengthBytes.toLong(), out)
                is Body.Empty -> Unit
            }
        }
    }

    private fun pour(file: File, from: Long, length: Long, out: OutputStream) = RandomAccessFile(file, "r").use { input ->
        input.seek(from)
        val part = ByteArray(64 * 1024)
        var left = length
        while (left > 0) {
            if (cancelled) throw TransportException.Cancelled("stopped")
            val got = input.read(part, 0, minOf(left, part.size.toLong()).toInt())
            if (got < 0) throw EOFException("${file.name} is shorter than it was")
            out.write(part, 0, got)
            left -= got
        }
    }

    private fun answer(link: HttpURLConnection): Answer {
        val status = link.responseCode
        if (status < 0) throw IOException("no HTTP answer")
        val headers = link.headerFields.entries.filter { it.key != null }.flatMap { (name, values) -> values.map { Header(name.lowercase(), it) } }
        val stream = if (status >= 400) link.errorStream else link.inputStream
        val body = stream?.use { input ->
            val whole = ByteArrayOutputStream()
            val part = ByteArray(16 * 1024)
            while (true) {
                val got = input.read(part)
                if (got < 0) break
                whole.write(part, 0, got)
                if (whole.size() > LONGEST) throw IOException("the answer is longer than $LONGEST bytes")
            }
            whole.toByteArray()
        } ?: ByteArray(0)
        // Not every implementation of the platform's class minds a body that ends early.
        val promised = headers.find { it.name == "content-length" }?.value?.toLongOrNull()
        if (link.requestMethod != "HEAD" && status != 204 && status != 304 && promised != null && promised != body.size.toLong()) {
            throw EOFException("the answer ended after ${body.size} of $promised bytes")
        }
        return Answer(status.toUShort(), headers, body)
    }

    private fun fault(error: IOException, connected: Boolean): TransportException {
        val said = error.message ?: error.javaClass.simpleName
        return when {
            cancelled -> TransportException.Cancelled("stopped")
            OneKey.refused(error) && key != null -> TransportException.WrongKey("what answers at the depot's address does not hold the key that was enrolled")
            OneKey.refused(error) -> TransportException.NotTrusted("the depot's certificate is not trusted: $said")
            error is UnknownHostException || error is ConnectException || error is NoRouteToHostException ->
                TransportException.Offline("the depot cannot be reached: $said")
            error is SocketTimeoutException && !connected -> TransportException.Offline("the depot cannot be reached: $said")
            else -> TransportException.Cut("the link was cut: $said")
        }
    }

    companion object {
        private const val LONGEST = 4 * 1024 * 1024

        /** Whether the record and the token may travel to [depot]: encrypted, or within this device. */
        fun allowed(depot: String) = runCatching { allowed(URL(depot)) }.getOrDefault(false)

        private fun allowed(url: URL) = url.protocol == "https" && url.host.isNotEmpty() || url.protocol == "http" && url.host in HERE

        /** As res/xml/network.xml has it. */
        private val HERE = setOf("localhost", "127.0.0.1")
    }
}
